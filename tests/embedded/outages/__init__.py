"""What people see while something the program leans on is away, and that it heals by itself."""
