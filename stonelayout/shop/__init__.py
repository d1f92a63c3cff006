"""Stock, time and money: what an order needs, takes and costs."""
