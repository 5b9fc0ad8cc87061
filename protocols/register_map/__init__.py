"""The register map of a meter: frozen models, and the way from YAML text to them, faults by line."""
