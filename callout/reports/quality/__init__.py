"""Quality checks: trees drawn at random, walked again blind, and how far the two differ."""
