"""Parameters of the model out of flights, with their covariance."""
