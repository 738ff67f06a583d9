"""The closed-vocabulary engine: a frozen public encoder, a small head of ours, an exact search."""
