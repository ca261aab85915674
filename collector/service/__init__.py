"""The collector as a service: what it tells the service manager, and the unit it runs by."""
