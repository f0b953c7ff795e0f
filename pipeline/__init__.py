"""From a study file to strain at the gap and stress in the implants."""
