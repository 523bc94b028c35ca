"""The shop: materials, pressures and quantities."""
