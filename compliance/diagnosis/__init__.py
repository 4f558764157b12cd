"""Why a slot misses its rule: models of what may be wrong, fitted to the readings and compared."""
