"""What the registers of a meter could mean besides what a map says: readings tried, judged, ranked."""
