"""How readers agree, measurement by measurement."""
