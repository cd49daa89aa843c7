"""What a failing requirement is to be blamed on: `remedies`, then `trials`, then `causes`."""
