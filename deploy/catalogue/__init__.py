"""Makes the catalogue of texts: what pages and service say, found in the source, merged into each language's list and compiled."""
