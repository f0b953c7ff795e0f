"""What loads a femur: models of loads, published forces, forces and moments, statics."""
