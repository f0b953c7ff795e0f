"""From a geometry to a mesh; gmsh is here alone."""
