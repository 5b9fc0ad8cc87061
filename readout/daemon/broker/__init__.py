"""Readings for the plant: each kept row to an MQTT broker (MQTT 3.1.1, OASIS), last values retained."""
