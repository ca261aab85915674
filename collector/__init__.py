"""`Reading` to `Snapshot`, alarms and time series."""
