"""Digital tapes and calipers as a second input: from bytes to exact measurements."""
