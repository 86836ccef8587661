"""Response serializers: one module for each noun of the API."""
