"""Every construct once more as a small model: whatever leaves its mesh alone costs milliseconds."""
