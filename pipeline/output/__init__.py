"""What a study leaves for people: pictures and pages, drawn from the case folders alone."""
