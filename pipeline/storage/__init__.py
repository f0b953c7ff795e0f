"""What lies on disk: files whole or not there, cases by their address, shared meshes, versions."""
