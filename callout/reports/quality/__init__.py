"""Quality checks: trees drawn at random, measured again blind, and the agreement of both."""
