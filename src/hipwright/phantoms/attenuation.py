"""Linear attenuation of tissues for one effective energy of about 60 keV, per mm.

From memory of published tables of mass attenuation, rounded; the films need
plausible contrast, not dosimetry. A material inside another is counted by the
difference of the two.
"""

from types import MappingProxyType

AIR = 0.0
FAT = 0.0190
SOFT = 0.0207
MUSCLE = 0.0217
WATER = 0.0206
CORTEX = 0.0560
CANCELLOUS = 0.0262
STEEL = 0.90

HOUNSFIELD = MappingProxyType(
    {"air": -1000.0, "fat": -95.0, "muscle": 55.0, "water": 5.0, "marrow": 40.0, "cortex": 1450.0}
)
"""CT numbers of the same tissues (common practice, from memory)."""
