"""What is to be measured, what that can show, and how far it is done."""
