"""The way in from other machines: tokens, sessions, certificate, and the service that dashboards and phones reach."""
