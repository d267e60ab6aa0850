"""What comes after laying: how the wire differs from its plan, what a walk test says, and where a break is."""
