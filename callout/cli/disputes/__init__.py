"""Commands that settle a dispute: replay, rebuild, verify."""
