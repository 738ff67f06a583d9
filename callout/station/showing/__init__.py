"""What a station shows: values for a screen, JSON lines, cautions, the summary at the end."""
