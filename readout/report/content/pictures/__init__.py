"""The pictures of the page, as data for the chart script."""
