"""The cook over MQTT again: what others in the house may build on."""
