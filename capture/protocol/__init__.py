"""The rules of the trade: sites, order, circuits, the tape, when a third is due. All pure."""
