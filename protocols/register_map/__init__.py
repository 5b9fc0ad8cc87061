"""The register map of a meter: frozen models, and the way from YAML text to them with faults by line and column."""
