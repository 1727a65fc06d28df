"""After the signature: crews, schedule, installation, verification, invoices."""
