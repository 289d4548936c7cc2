"""Laws of life: first passage of the wear path over the limit, and Weibull lives for other causes."""
