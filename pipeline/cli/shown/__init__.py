"""What the terminal shows, a module for each thing: plan, progress, results and so on."""
