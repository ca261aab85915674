"""A past cook in the dashboard."""
