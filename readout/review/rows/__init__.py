"""The rows of a point, reduced to clock minutes whatever their number."""
