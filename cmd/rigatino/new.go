package main

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"rigatino/annotate"
	"rigatino/annotate/project"
)

type newCommand struct {
	Project     string `arg:"" help:"Folder to make, usually Name.rigatino."`
	Number      string `help:"Catalogue number."`
	Title       string `help:"What the specimen is, in a few words."`
	Institution string `help:"Museum or collection."`
}

// Run makes an empty project.
func (c *newCommand) Run(j *job) error {
	if strings.TrimSpace(c.Project) == "" {
		return usagef("name the folder of the project")
	}
	p, err := project.New(c.Project, annotate.Specimen{CatalogueNumber: c.Number, Title: c.Title, Institution: c.Institution})
	if err != nil {
		return err
	}
	doc := struct {
		Schema  int    `json:"schema"`
		Project string `json:"project"`
	}{1, c.Project}
	return errors.Join(j.print(doc, func(w io.Writer) {
		fmt.Fprintf(w, "Made %s. Next: rigatino add %s SCAN --stage received --date …\n", c.Project, c.Project)
	}), p.Close())
}
