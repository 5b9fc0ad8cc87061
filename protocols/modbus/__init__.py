"""Modbus over a serial line: frames, limits and times. Bytes in, values out."""
