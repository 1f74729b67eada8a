package main

import "github.com/spf13/cobra"

// fitCommand gathers what is found from measurements on the real thing.
func (a *app) fitCommand() *cobra.Command {
	c := &cobra.Command{
		Use:     "fit",
		Short:   "find the machine file's values from what was measured",
		Example: fitCurrentExample + "\n" + fitGlassExample,
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	c.AddCommand(a.fitCurrentCommand(), a.fitGlassCommand())
	return c
}
