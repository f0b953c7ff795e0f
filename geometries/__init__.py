"""What is built: parameters, solids and clearances of femur, defect and implants. No mesher here."""
