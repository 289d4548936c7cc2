"""Charts as plotly figures, made from the results that the tables show; the page draws them."""
