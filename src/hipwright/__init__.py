"""hipwright: a workbench for hip-preservation surgery.

For use by licensed clinicians as one input; not a medical device; not
validated on clinical images.
"""

__version__ = "0.1.0"

__all__ = ["__version__"]
