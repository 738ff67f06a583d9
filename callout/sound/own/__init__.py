"""Our own voice in what the microphone takes: over it, through it, and how much comes back."""
