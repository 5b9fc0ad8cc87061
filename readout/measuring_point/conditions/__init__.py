"""What a volume means: temperature, pressure, humidity, the gas and its density, what may be corrected."""
