"""Bluetooth Low Energy as a source: one radio an adapter, shared by all devices heard through it."""
