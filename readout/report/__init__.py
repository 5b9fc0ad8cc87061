"""The audit page: one file of HTML that opens without a network. See docs/report.md."""
