"""From bytes to one exact reading: how a device writes its lines."""
