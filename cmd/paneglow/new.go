package main

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"paneglow/examples"
)

func (a *app) newCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "new DIR",
		Short:   "write a small show to begin with",
		Long:    "New makes a folder with show.toml and machine.toml (one strip and a few states, ready to change)\nand a simulated photo of one lit pixel to try fit glass on.",
		Example: "  paneglow new my-panel",
		Args:    argument("the folder to make"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := writeShow(examples.Starter(), args[0]); err != nil {
				return err
			}
			fmt.Fprintf(a.out, `made %[1]s: a show of one strip and its machine

  %-[5]*[2]s   what the panel shows: change a color or a time
  %-[5]*[3]s   the panel as built: write in your own numbers
  %-[5]*[4]s   one lit pixel behind this glass, to try fit glass on

next:
  paneglow check %[1]s
  paneglow render %[1]s -o %[1]s/glass.png
  paneglow render %[1]s --view timeline -o %[1]s/timeline.png
  paneglow explain           lists patterns, words and findings
`, args[0], filepath.Join(args[0], "show.toml"), filepath.Join(args[0], "machine.toml"), filepath.Join(args[0], "simulated-photo.jpg"), len(filepath.Join(args[0], "simulated-photo.jpg")))
			return nil
		},
	}
}

// writeShow copies a show's files into a new or empty folder.
func writeShow(from fs.FS, dir string) error {
	entries, err := os.ReadDir(dir)
	if err == nil && len(entries) > 0 {
		return fmt.Errorf("%s is there already and holds %d files: nothing was written, name another folder", dir, len(entries))
	}
	if err != nil && !os.IsNotExist(err) {
		return fmt.Errorf("%s cannot be used: %w", dir, err)
	}
	return copyShow(from, dir)
}

func copyShow(from fs.FS, dir string) error {
	return fs.WalkDir(from, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		to := filepath.Join(dir, filepath.FromSlash(path))
		if d.IsDir() {
			return os.MkdirAll(to, 0o755)
		}
		b, err := fs.ReadFile(from, path)
		if err != nil {
			return err
		}
		return writeBytes(to, b)
	})
}
