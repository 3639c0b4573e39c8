"""What every room may use: errors, units, cautions, arrays, times, files, geodesy, compiling and worker processes.

Nothing here imports from another room.
"""
