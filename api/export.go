package api

import (
	"context"
	"fmt"
	"io"
	"mime"
	"net/http"
	"os"
	"strconv"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/api/sheet"
	"lastgood/workflow"
	"lastgood/workflow/key"
)

const (
	asCSV  = "text/csv"
	asXLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
)

func (s *server) registerExport(api huma.API) {
	read := needs(key.DeviationsRead)
	huma.Register(api, huma.Operation{OperationID: "export-trace-csv", Method: http.MethodGet, Path: "/v1/deviations/{id}/trace.csv",
		Summary: "One sheet of the trace, as RFC 4180", Security: read, Responses: asFile(asCSV),
		Description: "A text that a spreadsheet would take for a formula has a quote mark before it."}, handle(s, s.exportCSV))
	huma.Register(api, huma.Operation{OperationID: "export-trace-xlsx", Method: http.MethodGet, Path: "/v1/deviations/{id}/trace.xlsx",
		Summary: "The whole trace as a workbook that can be sorted and filtered", Security: read, Responses: asFile(asXLSX),
		Description: "Readings beyond the rows of a sheet go on in a sheet readings 2, and so on."}, handle(s, s.exportXLSX))
}

// asFile documents an answer that is a file.
func asFile(media string) map[string]*huma.Response {
	return map[string]*huma.Response{strconv.Itoa(http.StatusOK): {Description: "OK",
		Content: map[string]*huma.MediaType{media: {Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}}}}
}

func (s *server) exportCSV(ctx context.Context, in *struct {
	DeviationPath
	Sheet string `query:"sheet" enum:"summary,assessments,holds,shipped,lots,transformations,readings" default:"assessments"`
}) (*huma.StreamResponse, error) {
	x, err := s.svc.Export(ctx, scope(ctx, ""), workflow.DeviationID(in.ID), in.Sheet == "readings" || in.Sheet == "summary")
	if err != nil {
		return nil, err
	}
	name := fmt.Sprintf("deviation-%d-%s.csv", in.ID, in.Sheet)
	return spooled(name, asCSV, func(w io.Writer) error { return sheet.CSV(w, sheetOf(ctx, x, in.Sheet)) })
}

func (s *server) exportXLSX(ctx context.Context, in *DeviationPath) (*huma.StreamResponse, error) {
	x, err := s.svc.Export(ctx, scope(ctx, ""), workflow.DeviationID(in.ID), true)
	if err != nil {
		return nil, err
	}
	return spooled(fmt.Sprintf("deviation-%d-trace.xlsx", in.ID), asXLSX, func(w io.Writer) error { return sheet.XLSX(w, x.MadeAt, sheets(ctx, x)...) })
}

// spooled answers with a file that is written first and sent then: what fails is
// a problem document and never half a file, and a slow caller keeps nothing but
// the file.
func spooled(name, media string, write func(io.Writer) error) (*huma.StreamResponse, error) {
	f, err := os.CreateTemp("", "lastgood-export-")
	if err != nil {
		return nil, err
	}
	_ = os.Remove(f.Name()) // it lives as long as it is open, and no longer than the server
	if err := write(f); err != nil {
		f.Close()
		return nil, err
	}
	size, err := f.Seek(0, io.SeekCurrent)
	if err == nil {
		_, err = f.Seek(0, io.SeekStart)
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	return &huma.StreamResponse{Body: func(ctx huma.Context) {
		defer f.Close()
		ctx.SetHeader("Content-Type", media)
		ctx.SetHeader("Content-Length", strconv.FormatInt(size, 10))
		ctx.SetHeader("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
		_, _ = io.Copy(ctx.BodyWriter(), f) // the caller is gone if this fails
	}}, nil
}
