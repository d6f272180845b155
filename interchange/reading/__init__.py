"""From the bytes of a source to sessions: guarded, decoded, laid out, mapped by a manifest."""
