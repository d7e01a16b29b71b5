"""What is answered: witnesses beside the joint answer, and one judge over what all of them propose."""
