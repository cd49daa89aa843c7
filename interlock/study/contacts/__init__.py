"""What contacts are for: `struck` (one thing has failed) <- `losses` (what cannot be done then) <- `purposes`."""
