"""How the service is: for whoever looks after it, for a load balancer, for what watches it."""
