"""Every figure of a measuring point, joined from its file and its map: to be shown, printed and compared."""
