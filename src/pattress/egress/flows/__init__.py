"""Flow export: IPFIX, NetFlow v9 and v5 decoded in bulk. `decoder` is where to begin; it and `columns` need NumPy."""
