"""The recorder left alone: how it stands, who is told, the systemd unit, changes taken up."""
