"""Structure: what fins, tubes, joints, guides and skins bear, by the loads of the flights themselves."""
