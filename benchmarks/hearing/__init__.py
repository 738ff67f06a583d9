"""How well callouts are heard: ``python -m benchmarks.hearing``. See docs/hearing.md."""
