"""What the delivery says compared with what is measured."""
