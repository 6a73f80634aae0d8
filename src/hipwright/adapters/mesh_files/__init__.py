"""Meshes made elsewhere, and meshes for elsewhere: STL, PLY, OBJ, VTP in; STL, PLY, GLB out."""
