"""What is known of a point besides its rows: installation, units, the site's time, the ledger."""
