"""What people typed into files that Siltbook wrote: known again, kept, and brought back."""
