"""The phone page: a small server at home that answers the phones of the home network."""
