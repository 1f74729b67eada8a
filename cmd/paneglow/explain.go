package main

import (
	_ "embed"
	"fmt"
	"slices"
	"strings"

	"github.com/agnivade/levenshtein"
	"github.com/spf13/cobra"

	"paneglow/anim/script"
	"paneglow/patterns"
)

//go:embed explain.md
var explainText string

// topic is one heading of explain.md with its text.
type topic struct{ name, text string }

func topics() []topic {
	var out []topic
	for part := range strings.SplitSeq("\n"+explainText, "\n## ") {
		name, text, ok := strings.Cut(part, "\n")
		if ok && strings.TrimSpace(name) != "" && !strings.HasPrefix(strings.TrimSpace(part), "# ") {
			out = append(out, topic{strings.TrimSpace(name), strings.TrimSpace(text)})
		}
	}
	return out
}

func (a *app) explainCommand() *cobra.Command {
	return &cobra.Command{
		Use:               "explain [NAME]",
		Short:             "explain a finding, a word or a pattern",
		Long:              "Explain says what a finding's code means and what to do, what a word of the files means, or what a pattern shows and which controls it has. Without a name it lists all.",
		Example:           "  paneglow explain power.cap_bites\n  paneglow explain eaves",
		ValidArgsFunction: cobra.NoFileCompletions,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usageError{fmt.Errorf("explain takes one name, and got %d", len(args))}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return a.explainAll()
			}
			return a.explain(args[0])
		},
	}
}

func (a *app) explainAll() error {
	fmt.Fprintf(a.out, "patterns: %s\n\n", strings.Join(patterns.Names(), ", "))
	var words, codes []string
	for _, t := range topics() {
		if strings.Contains(t.name, ".") {
			codes = append(codes, t.name)
		} else {
			words = append(words, t.name)
		}
	}
	fmt.Fprintf(a.out, "words: %s\n\nfindings:\n", strings.Join(words, ", "))
	for _, c := range codes {
		fmt.Fprintf(a.out, "  %s\n", c)
	}
	return nil
}

func (a *app) explain(name string) error {
	known := patterns.Names()
	if src, ok := patterns.Source(name); ok {
		return a.explainPattern(name, src)
	}
	for _, t := range topics() {
		if t.name == name {
			fmt.Fprintf(a.out, "%s\n\n%s\n", t.name, t.text)
			return nil
		}
		known = append(known, t.name)
	}
	slices.SortStableFunc(known, func(x, y string) int {
		return levenshtein.ComputeDistance(name, x) - levenshtein.ComputeDistance(name, y)
	})
	// Half the letters wrong is another word, not a slip.
	if levenshtein.ComputeDistance(name, known[0]) > max(1, len(name)/2-1) {
		return fmt.Errorf("nothing is known under %q: `paneglow explain` lists all names", name)
	}
	return fmt.Errorf("nothing is known under %q: did you mean %q? `paneglow explain` lists all names", name, known[0])
}

func (a *app) explainPattern(name string, src []byte) error {
	p, err := script.Load("patterns/"+name+".star", src)
	if err != nil {
		return err
	}
	fmt.Fprintf(a.out, "pattern %s\n\n%s\n\n", name, strings.TrimSpace(p.Doc()))
	for _, c := range p.Controls() {
		fmt.Fprintf(a.out, "  %-10s %-8s default %s", c.Name, c.Kind, c.Default)
		if c.Kind == "number" {
			fmt.Fprintf(a.out, ", %g to %g", c.Min, c.Max)
			if c.Unit != "" {
				fmt.Fprintf(a.out, " %s", c.Unit)
			}
		}
		if len(c.Options) > 0 {
			fmt.Fprintf(a.out, ", one of %s", strings.Join(c.Options, ", "))
		}
		if c.Help != "" {
			fmt.Fprintf(a.out, "  (%s)", c.Help)
		}
		fmt.Fprintln(a.out)
	}
	var example []string
	for _, c := range p.Controls() {
		v := c.Default
		if c.Kind != "toggle" && !(c.Kind == "number" && c.Unit == "") {
			v = fmt.Sprintf("%q", v)
		}
		example = append(example, c.Name+" = "+v)
	}
	fmt.Fprintf(a.out, "\nin show.toml:\n  [[clip.layer]]\n  pattern = %q\n  with = { %s }\n", name, strings.Join(example, ", "))
	return nil
}
