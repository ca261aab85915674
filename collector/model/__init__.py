"""The pit, the fire, the alarms as numbers: pure, arrays in, arrays out."""
