"""What a hand, a wall and a key allow; imports the geometry of the model only."""
