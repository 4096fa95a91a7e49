"""What every stage stands on: errors, identity of products, the cache, safe writing, plugins. No music here."""
