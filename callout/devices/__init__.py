"""Digital tapes and calipers as a second way in: bytes to exact measurements, and joining."""
