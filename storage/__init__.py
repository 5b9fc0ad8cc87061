"""Keeps rows, files and metadata, durably. Knows nothing of Modbus."""
