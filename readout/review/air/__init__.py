"""What compressed air costs and what its pressure does: demand, pressure, one hole as an illustration."""
