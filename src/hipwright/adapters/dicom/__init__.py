"""DICOM at the door: reading, de-identifying, and telling what a header proposes."""
