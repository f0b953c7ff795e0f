"""Contact by stops: a few unilateral conditions on top of any number of linear solutions."""
