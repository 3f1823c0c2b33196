"""What the readings give: runs, forecasts, exponents, costs, and the water."""
