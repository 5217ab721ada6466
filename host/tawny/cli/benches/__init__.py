"""What `tawny bench` measures, one module for each figure."""
