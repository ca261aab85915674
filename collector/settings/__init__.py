"""The config file: where its keys stand, what they may hold, and the plan they make."""
