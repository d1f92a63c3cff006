"""Pages and pictures for customer and bench: proof, job sheet, report."""
