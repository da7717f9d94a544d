"""What must hold between the keys of a table and between tables, beyond what one key can say."""
