"""The live page and the metrics: what a browser and a monitor are given, and who is let in."""
