"""The papers of a job: a document as headings, tables and pictures, rendered as PDF."""
