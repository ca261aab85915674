"""Probes over MQTT: what to hear and how to read it, one broker a source."""
