"""What is shown: lesson files in; clips, captions, timelines and sheets out.

Stages, one module each: read, expand, plan, render, deliver.
"""
