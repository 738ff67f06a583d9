"""The commands, one module each; they read options, call the station or reports, and print."""
